"""Records as tidy tables for spreadsheets and statistics, with the dictionary that says what their columns mean."""
