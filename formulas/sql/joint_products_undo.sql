drop trigger check_joint_products on formulas_jointproduct;
drop function formulas_check_joint_products();
