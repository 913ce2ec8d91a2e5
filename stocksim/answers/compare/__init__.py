"""What differs between two or three site files, and what becomes of each."""
