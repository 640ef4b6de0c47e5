-- Forward only. A model is learnt numbers by the version that the model has with them; the built-in model has none and no
-- row. Rows of both tables are added and never changed; only a report may come later. What is in use is what the last
-- promotion says; undoes is the number of the one that it takes back, 0 where a person chose the version.

-- +goose Up
create table model (
    version  text   not null primary key,
    overlay  text   not null,
    report   text   not null,
    added_at bigint not null
);

create table promotion (
    number  bigint not null primary key,
    version text   not null, -- empty for the built-in model
    who     text   not null,
    at      bigint not null,
    undoes  bigint not null
);
