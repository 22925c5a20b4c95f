"""What standards say, as tables and rules that know of no case and no cage."""
