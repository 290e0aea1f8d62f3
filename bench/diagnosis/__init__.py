"""What the bench of findings is made of: farms with faults, their levels, counting and scoring."""
