-- The tables take their walls with them.
select 1;
