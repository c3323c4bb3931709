"""What slipped between two visits, and what creeps over many."""
