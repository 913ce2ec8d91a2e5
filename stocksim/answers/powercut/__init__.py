"""How long each tank has when pump, air and heat stop."""
