-- The walls fall with the table.
select 1;
