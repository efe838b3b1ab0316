-- The table goes with its own migration, and nothing else was made.
select 1;
