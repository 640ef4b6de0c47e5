-- Forward only. One row, written again and again to find out whether anything can be written.

-- +goose Up
create table probe (
    id bigint not null primary key,
    at bigint not null
);
