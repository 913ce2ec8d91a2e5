"""Starts the Streamlit pages."""
