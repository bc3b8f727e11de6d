create table chain (
    name text not null primary key,
    number bigint not null,
    hash bytea not null
);
create table entry (
    chain text not null,
    number bigint not null,
    at_us bigint not null,
    kept_us bigint not null,
    kind text not null,
    subject text not null,
    author text not null,
    corrects bigint,
    once text,
    body text not null,
    hash bytea not null,
    primary key (chain, number)
);
create index entry_kind on entry (chain, kind, at_us);
create index entry_subject on entry (subject, kind, at_us);
create unique index entry_corrects on entry (chain, corrects);
create unique index entry_once on entry (chain, once);
create table reading (
    bed text not null,
    at_us bigint not null,
    kg double precision,
    u_kg double precision,
    state text not null,
    primary key (bed, at_us)
);
create table reading_minute (
    bed text not null,
    minute_us bigint not null,
    readings bigint not null,
    settled bigint not null,
    least_kg double precision,
    mean_kg double precision,
    greatest_kg double precision,
    primary key (bed, minute_us)
);
create table counts (
    bed text not null,
    at_us bigint not null,
    block bytea not null,
    primary key (bed, at_us)
);
create table counts_minute (
    bed text not null,
    minute_us bigint not null,
    cell bigint not null,
    samples bigint not null,
    least bigint not null,
    mean double precision not null,
    greatest bigint not null,
    primary key (bed, minute_us, cell)
);
create table session (
    token bytea not null primary key,
    account text not null,
    guard text not null,
    begun_us bigint not null,
    ends_us bigint not null
);
create table state (
    bed text not null,
    slot bigint not null,
    start_us bigint not null,
    record bytea not null,
    primary key (bed, slot)
);
