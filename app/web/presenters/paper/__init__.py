"""What is printed: the handover sheet, its page of figures, and the blank worksheet."""
