"""What leaves the house as files: data sets that stand on their own."""
