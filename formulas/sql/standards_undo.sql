-- The walls fall with the tables that they stand on.
drop trigger check_standard on formulas_standardcost;
drop trigger check_standard_whole on formulas_standardcost;
drop function formulas_check_standard_whole();
