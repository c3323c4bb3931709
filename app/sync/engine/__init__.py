"""The engine as figures: layout, hardware, events, and the forward model from adjusters to air flow and idle speed."""
