"""What the artist asks: settings and destinations, notes and names."""
