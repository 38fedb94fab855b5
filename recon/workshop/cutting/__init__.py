"""How the members are cut from stock with the least to buy."""
