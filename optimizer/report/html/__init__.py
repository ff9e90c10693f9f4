"""Reports: one HTML file that needs no network, and reads and prints without scripts."""
