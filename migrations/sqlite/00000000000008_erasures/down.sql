DROP INDEX event_erased;
