"""The plan and the playbooks."""
