-- Few entries are ever erased; a recall and a yard's figures ask which they were.
CREATE INDEX event_erased ON event (kind, horse_id) WHERE content IS NULL;
