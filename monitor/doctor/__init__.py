"""Whether this computer and a profile are fit for a night's watch: `sight` looks, the others judge."""
