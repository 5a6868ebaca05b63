"""The shop on disk, for the tests in this folder."""

from __future__ import annotations

from shop.fixtures import place as place
from shop.fixtures import shop as shop
