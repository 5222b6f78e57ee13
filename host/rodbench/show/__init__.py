"""What a person sees: tables, the live view and plots."""
