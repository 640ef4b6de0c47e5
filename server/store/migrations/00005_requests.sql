-- Forward only. A client's key names a request; of the request itself only a SHA-256 is kept, in hexadecimal digits, to tell
-- the same one sent again from another one. Whoever repeats the key of an opening gets the conversation, so of that key, too,
-- only the SHA-256 is kept. Null where an older version of the program, or a client without a key, has written the row.

-- +goose Up
alter table event add column request text;
alter table conversation add column open_key text;
alter table conversation add column open_request text;

create unique index conversation_open_key on conversation (open_key);
