//! The airflow engine: what every pipe and hole should do, and how surely.
