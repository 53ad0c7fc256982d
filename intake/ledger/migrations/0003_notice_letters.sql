-- The letters that one notice is about: those of one sender in one conversation
-- share it. The text of each is kept, so that the notice can go on when its
-- latest letter is forgotten.
CREATE TABLE notice_letters (
  notice TEXT NOT NULL REFERENCES notices (id),
  letter TEXT NOT NULL REFERENCES letters (id),
  text   TEXT NOT NULL,
  at     TEXT NOT NULL,
  PRIMARY KEY (notice, letter)
);
CREATE INDEX notice_letters_by_letter ON notice_letters (letter);

INSERT INTO notice_letters (notice, letter, text, at)
  SELECT n.id, n.subject, n.text, n.last FROM notices n JOIN letters l ON l.id = n.subject;
