-- The table goes with its migration, and its walls with it.
select 1;
