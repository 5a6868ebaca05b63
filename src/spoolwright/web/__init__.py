"""The shop's pages: a frame that every craft fits into, one routes file and one template folder per craft."""
