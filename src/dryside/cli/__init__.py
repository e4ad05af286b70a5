"""The command line: parse, call one function below, show."""
