drop trigger check_enough on formulas_enough;
drop function formulas_check_enough();
