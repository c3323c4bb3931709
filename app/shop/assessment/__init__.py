"""What is judged of a visit: verdict, next step, banks, what each phase still lacks. No database is imported here."""
