"""Start checks: a few trees a worker in the first hour."""
