-- The tables themselves go with the migration before; only what stands outside them is taken back.
drop schema walls cascade;
drop function ledger_custody_of_own_lot() cascade;
alter default privileges in schema public
  revoke select, insert, update, delete on tables from stillroom;
