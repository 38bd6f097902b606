"""The reasoning: pure functions and models over facts, rules and airflow. Prints nothing."""
