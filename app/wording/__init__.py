"""Every sentence a person reads: messages by reason code, quantities with their units, safety messages."""
