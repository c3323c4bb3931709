"""What is judged of a visit, without a database: verdict, next step, banks, what each phase still lacks."""
