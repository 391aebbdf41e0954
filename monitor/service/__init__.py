"""A watch that runs without anybody at it: signs of life for a service manager, its unit, a signal for 'seen'."""
