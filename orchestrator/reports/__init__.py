"""What people and programs are told: functions of values and events.

Text reads well at 80 columns and without colour. What is silent and what is at risk comes first.
Each JSON document carries its ``schema``: ``cutsheet/<what>/1``.
"""
