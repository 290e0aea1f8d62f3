"""What the store is measured against: one module a rival, and the readings that all of them get."""
