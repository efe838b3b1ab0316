-- The three roles and the database. Safe to run again; run it with psql as a superuser (or a
-- role that may create roles and databases), for an external server as:
--
--   psql -v ON_ERROR_STOP=1 -d postgres -f deploy/roles.sql
--
-- STILLROOM_APP_PASSWORD and STILLROOM_OWNER_PASSWORD in the environment set the passwords;
-- `-v database=NAME` chooses another name for the database.
--
--   stillroom_owner   owns the database and its tables, and migrates. Never serves a request.
--   stillroom         what the server runs as. Owns nothing, bypasses nothing.
--   stillroom_ledger  nobody signs in as it: the ledger's own functions run as this role.

\set QUIET on
\if :{?database} \else
  \set database stillroom
\endif
\getenv app_password STILLROOM_APP_PASSWORD
\getenv owner_password STILLROOM_OWNER_PASSWORD

select format('create role %I %s', wanted.name, wanted.login)
from (values ('stillroom_owner', 'login'), ('stillroom', 'login'), ('stillroom_ledger', 'nologin'))
     as wanted (name, login)
where not exists (select from pg_roles where rolname = wanted.name) \gexec

\if :{?app_password}
  alter role stillroom password :'app_password';
\endif
\if :{?owner_password}
  alter role stillroom_owner password :'owner_password';
\endif

-- A function is given to the ledger's role by a member of it.
grant stillroom_ledger to stillroom_owner with inherit true, set true;

select format('create database %I owner stillroom_owner', :'database')
where not exists (select from pg_database where datname = :'database') \gexec

revoke all on database :"database" from public;
grant connect on database :"database" to stillroom;

\connect :"database"
revoke create on schema public from public;
grant usage on schema public to stillroom;
-- PostgreSQL asks for CREATE on the schema of whoever is to own a function in it.
grant usage, create on schema public to stillroom_ledger;
