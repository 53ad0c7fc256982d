-- Where jobs go once a reply is sent follows from their stage; nothing wrote here.
ALTER TABLE drafts DROP COLUMN then_stage;
