"""What is known of each material, by whom it is vouched for, and what the engine is told of it."""
