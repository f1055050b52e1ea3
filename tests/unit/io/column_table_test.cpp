// Claims of small tables of text: units over columns and beside values, and one sentence for everything else.
#include "firstedge/io/column_table.hpp"

#include "firstedge/core/error.hpp"

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(column_table, units_stand_over_columns_or_beside_values) {
  const ColumnTable table = ColumnTable::parse(
      "\xEF\xBB\xBF# bench, by hand\nname, delay (ns), uncertainty\r\n\nA, 12.5, 30 ps\n\"B, spare\", 1e3 , "
      "2e-12\n",
      "table.csv");
  ASSERT_EQ(table.rows(), 2U);
  EXPECT_EQ(table.text(1, "name"), "B, spare");
  EXPECT_DOUBLE_EQ(table.needed_quantity(0, "delay", "s"), 12.5e-9);
  EXPECT_DOUBLE_EQ(table.needed_quantity(1, "delay", "s"), 1e-6);
  EXPECT_DOUBLE_EQ(table.needed_quantity(0, "uncertainty", "s"), 30e-12);
  EXPECT_DOUBLE_EQ(table.needed_quantity(1, "uncertainty", "s"), 2e-12);
  EXPECT_EQ(table.place(1), "table.csv, line 5");
  EXPECT_EQ(table.text(0, "nothing"), "");
}

TEST(column_table, semicolons_and_tabs_separate_too) {
  EXPECT_EQ(ColumnTable::parse("a;b\n1;2\n", "t").text(0, "b"), "2");
  EXPECT_EQ(ColumnTable::parse("a\tb\n1\t2\n", "t").text(0, "b"), "2");
}

TEST(column_table, what_is_wrong_is_told_with_its_line) {
  const auto problem = [](const char* text, auto&& use) -> std::string {
    try {
      use(ColumnTable::parse(text, "t"));
    } catch (const Error& error) {
      return error.what();
    }
    return "nothing";
  };
  const auto nothing = [](const ColumnTable&) {};
  const auto quantity = [](const ColumnTable& table) { (void)table.needed_quantity(0, "a", "s"); };
  EXPECT_EQ(problem("", nothing).rfind("t: has no row of names", 0), 0U);
  EXPECT_EQ(problem("a,a\n", nothing).rfind("t, line 1: has the name 'a' twice", 0), 0U);
  EXPECT_EQ(problem("a,b\n\n1\n", nothing).rfind("t, line 3: has 1 fields under 2 names", 0), 0U);
  EXPECT_EQ(problem("a\n3 V\n", quantity).rfind("t, line 2, column a: '3 V' is no quantity in s", 0), 0U);
  EXPECT_EQ(problem("a (V)\n3\n", quantity).rfind("t, line 2, column a: '3 V' is no quantity in s", 0), 0U);
  EXPECT_EQ(problem("a,b\n,1\n", quantity).rfind("t, line 2, column a: is empty", 0), 0U);
  EXPECT_EQ(problem("a\nnan\n", quantity).rfind("t, line 2, column a", 0), 0U);
  const auto columns = [](const ColumnTable& table) { table.check_columns({"a"}, {"b"}); };
  EXPECT_EQ(problem("b\n", columns).rfind("t: has no column 'a'", 0), 0U);
  EXPECT_EQ(problem("a,c\n", columns).rfind("t: has a column 'c' that means nothing here", 0), 0U);
}

}  // namespace
}  // namespace firstedge
