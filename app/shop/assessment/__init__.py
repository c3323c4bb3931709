"""What is judged of a visit: verdict, next step, banks, and what each phase still lacks. No database is imported here."""
