DROP TABLE notice;
