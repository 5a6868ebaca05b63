"""Supply: stock with its certificates, what a visit needs, kits by serial, outside repairs."""
