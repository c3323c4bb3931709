"""What an engine page says of earlier visits: what slipped, how it drifted, and the charts."""
