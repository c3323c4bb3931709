"""What the description of the JSON interface says beside what each module says of its own fields."""
