"""Everything one run says, kept and read back."""
