"""Fair comparison: chance, block and auditor set apart from people."""
