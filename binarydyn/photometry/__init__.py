"""What measured light says: its tables, its noise, and how bright a pair is at many instants without a search."""
