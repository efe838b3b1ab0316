select;
