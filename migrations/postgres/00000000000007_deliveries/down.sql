DROP TABLE delivery;
DROP TABLE webhook;
DROP TABLE notice_setting;
