"""What inspections teach of the trade's own gear: pure, and with scipy an extra."""
