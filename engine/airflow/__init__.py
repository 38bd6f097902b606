"""The airflow model: air, orifice, fan, network, estimate."""
