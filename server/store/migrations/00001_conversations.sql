-- Times are UTC microseconds; a body is the event as JSON. Only types and clauses that SQLite and PostgreSQL share.

-- +goose Up
create table conversation (
    id            text   not null primary key,
    opened_at     bigint not null,
    model_version text   not null
);

create table event (
    conversation_id text   not null references conversation (id),
    number          bigint not null,
    at              bigint not null,
    client_key      text, -- null where the client gave none; nulls never collide
    body            text   not null,
    primary key (conversation_id, number),
    unique (conversation_id, client_key)
);

-- +goose Down
drop table event;
drop table conversation;
