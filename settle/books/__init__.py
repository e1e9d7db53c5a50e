"""What is kept: tables, transactions and one module a use case."""
