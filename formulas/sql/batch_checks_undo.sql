drop trigger check_approval on formulas_batchcheck;
drop function formulas_check_approval();
