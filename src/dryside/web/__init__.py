"""The pages: parse, call one function below, show."""
