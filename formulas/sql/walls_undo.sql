-- The walls fall with the tables that they stand on.
select 1;
