DROP TABLE calendar;
