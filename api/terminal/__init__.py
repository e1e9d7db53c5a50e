"""What a terminal shows: answers of the API laid out on at most 100 columns. Nothing is reckoned here."""
