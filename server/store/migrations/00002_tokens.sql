-- Forward only. The secret of a token is never kept, only its SHA-256 in hexadecimal digits.

-- +goose Up
create table token (
    id         text   not null primary key,
    name       text   not null,
    scope      text   not null,
    hash       text   not null,
    made_at    bigint not null,
    expires_at bigint not null
);

create index conversation_opened_at on conversation (opened_at);
