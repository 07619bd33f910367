DROP TABLE projection;
DROP TABLE lot;
