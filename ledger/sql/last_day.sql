-- The last day on which a maker may use a lot: the earliest of its expiry, its retest date, and the
-- day by which it is to be used since the maker opened it. Whoever asks for it, asks here, and
-- PostgreSQL writes it out into the statement.
create function ledger_last_day(expires_on date, retest_on date, use_by date) returns date
immutable parallel safe language sql as $$ select least(expires_on, retest_on, use_by) $$;
