DROP INDEX session_by_device;
DROP INDEX tenure_by_barn;
DROP INDEX tenure_by_owner;
DROP INDEX grant_exemption_by_grant;
