"""stackup: tolerance stack-up of pin-type roller bearing cages."""
