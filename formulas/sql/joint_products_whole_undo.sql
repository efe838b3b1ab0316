drop trigger check_joint_whole on formulas_making;
drop function formulas_check_joint_whole();
