-- The tables themselves go with the migration before; only what stands outside them is taken back.
drop schema walls cascade;
alter default privileges in schema public
  revoke select, insert, update, delete on tables from stillroom;
