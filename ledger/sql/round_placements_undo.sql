-- The table takes its walls with it.
select 1;
