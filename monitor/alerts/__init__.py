"""What is told, to whom, in which words, and getting it there."""
