"""What answers of the JSON interface carry besides their bodies: where what was made is found, totals, dry runs."""
