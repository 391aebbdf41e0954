"""What carries events, answers and files to and from the bench, which is pure (`monitor.bench`)."""
