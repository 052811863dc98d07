"""What commands say: results as plain data for JSON, and as text for people."""
