drop trigger check_room on formulas_packaging;
drop function formulas_check_room();
