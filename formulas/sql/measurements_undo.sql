drop trigger check_window on formulas_window;
drop function formulas_check_window();
