-- Forward only. A pass leads to a conversation without being its key; of it, too, only the SHA-256 is kept.

-- +goose Up
create table pass (
    hash            text   not null primary key,
    kind            text   not null,
    conversation_id text   not null references conversation (id),
    expires_at      bigint not null
);

create index pass_conversation on pass (conversation_id);

create index event_at on event (at);
