"""Outside checks: values measured by others, and what our tables and solver give for them."""
