drop trigger check_bulk_age on formulas_filling;
drop function formulas_check_bulk_age();
