"""Small planning problems, solved by brute force."""
