drop trigger check_second_look on formulas_secondlook;
drop function formulas_check_second_look();
