-- Ways to rows that were found before by reading a table whole.
CREATE INDEX grant_exemption_by_grant ON grant_exemption (grant_id);
CREATE INDEX tenure_by_owner ON tenure (owner_id);
CREATE INDEX tenure_by_barn ON tenure (barn_id);
CREATE INDEX session_by_device ON session (device_id);
